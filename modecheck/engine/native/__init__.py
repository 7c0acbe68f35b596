"""The compiled engine: a successor function in machine code for each product, and fixed kernels."""
