"""Tests for the bench: walks that take every action, words that tell states apart."""
