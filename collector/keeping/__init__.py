"""From the sources to the disk: one source's samples in order, frames, and the writer."""
