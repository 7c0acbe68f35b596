"""C code for a chip, and the proof that it does what the chip does in its device."""
