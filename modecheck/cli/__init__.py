"""The command line: thin, one file a command. Heavy modules are imported when they are needed."""
