"""One editor's session: its texts, what is known of their devices, and what names mean in them."""

from __future__ import annotations

from collections.abc import Callable

from modecheck.editor.positions import Position
from modecheck.editor.real_paths import forget_real_paths, real_path
from modecheck.editor.scenes import Scene, Scenes
from modecheck.editor.upkeep import KnownDevice, Upkeep
from modecheck.editor.workspace import Workspace, path_of


class EditorSession:
    """What `server.py` asks. `publish` and `tell` are as in `Upkeep`."""

    def __init__(self, publish: Callable[[set[str]], None], tell: Callable[[str], None]) -> None:
        self.workspace = Workspace()
        self.upkeep = Upkeep(self.workspace, publish, tell)
        self._scenes = Scenes()

    def put(self, uri: str, text: str, version: int | None = None) -> None:
        """Open a text, or replace it by a newer one."""
        buffer = self.workspace.put(uri, text, version)
        self.upkeep.touch(buffer.path)

    def put_part(
        self, uri: str, start: Position, end: Position, text: str, version: int | None = None
    ) -> None:
        """Replace a part of a text."""
        old = self.workspace.map_of(path_of(uri))
        first, last = sorted((old.offset(start), old.offset(end)))
        self.put(uri, old.text[:first] + text + old.text[last:], version)

    def close(self, uri: str) -> None:
        """From now on, the file counts again."""
        self.workspace.close(uri)
        self.upkeep.touch(path_of(uri))

    def files_changed(self) -> None:
        """Files may have changed that are not open."""
        self._scenes.forget()
        forget_real_paths()
        self.upkeep.touch_all()

    def scene(self, path: str, device: str | None = None) -> Scene:
        """What names mean in a text, in the nearest device or in this one."""
        return self._scenes.of(self.workspace, path, device)

    def known_of(self, path: str) -> list[KnownDevice]:
        """What is known of the devices that a file belongs to, the nearest first."""
        known = {real_path(one): found for one, found in self.upkeep.known.items()}
        devices = map(real_path, self.workspace.devices_of(path))
        return [known[device] for device in devices if device in known]
