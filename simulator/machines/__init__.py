"""The machines of the simulated line: each a lump of physics with its state, in steps of a second or less."""
