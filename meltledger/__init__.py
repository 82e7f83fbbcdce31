"""The command line and the wiring: reads a line's file, builds the parts and runs them."""

__version__ = "0.1.0"
