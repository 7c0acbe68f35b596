"""Tests of `modecheck.testing`, and a worked example: a receiver in C."""
