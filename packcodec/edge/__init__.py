"""The only input and output: files, stores, ports, the clock and the command line."""
