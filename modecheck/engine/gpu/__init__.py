"""Products explored on a GPU: kernels, memory there, and what comes back."""
