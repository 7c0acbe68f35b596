"""A small language for inner loops: restricted Python that LLVM compiles, and CPython runs, too."""
