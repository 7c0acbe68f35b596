"""Numbers that many kernels need: of the layout of records, and of hashes."""

from __future__ import annotations

import numpy as np

from modecheck.engine.native.frame import DRIVEN, FAILURE_SHIFT, RECORD_EXTRA

U0 = np.uint64(0)
U1 = np.uint64(1)
TWO = np.uint64(RECORD_EXTRA)
U8 = np.uint64(8)
U32 = np.uint64(32)
U64 = np.uint64(64)
LOW = np.uint64(0xFFFFFFFF)
MULTIPLY_ONE = np.uint64(0x9E3779B97F4A7C15)
MULTIPLY_TWO = np.uint64(0xD6E8FEB86659FD93)
"""Odd constants with well-mixed bits: the golden ratio's, and one in common use for mixing."""
FAILED_BIT = np.uint64(1 << 63)
FAILURE_MASK = np.uint64(0x7FFFFFFF)
FAILURE_BITS = np.uint64(FAILURE_SHIFT)
COUNT_MASK = np.uint64(DRIVEN - 1)
