"""Tests of the machines that `modecheck.machines` makes."""
