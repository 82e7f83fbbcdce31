"""JSON messages and the samples in them; pure."""
