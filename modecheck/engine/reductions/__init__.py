"""Explore less than a whole product and know as much: identical units, independent steps."""
