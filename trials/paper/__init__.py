"""What a trial has on paper: the run sheet, and labels of samples and bags with a code."""
