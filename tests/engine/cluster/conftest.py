"""Stores answer from their files here, as those of products larger than memory do."""

from tests.engine.store.conftest import answered_from_files

__all__ = ["answered_from_files"]
