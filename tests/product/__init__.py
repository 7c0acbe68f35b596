"""Tests of the product: chips composed, and states packed into bits."""
