"""Tests of modecheck/chances."""
