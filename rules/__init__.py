"""What the line's samples mean: detectors, the life of an alarm, the engine that drives both, the journal."""
