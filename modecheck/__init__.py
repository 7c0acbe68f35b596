"""modecheck verifies how the firmware of a multi-chip device switches between modes."""

__version__ = "0.1.0"
