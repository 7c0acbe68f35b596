"""Tests of reading: what is accepted and what it means, and how errors are told."""
