"""Tests of reading: what is accepted and what it means, and how mistakes are told."""
