"""The command line: a thin layer, one module per command. Heavy modules are imported on use."""
