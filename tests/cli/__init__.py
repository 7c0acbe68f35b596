"""Tests of the command line, run as people and CI run it: as a process."""
