"""What is known of the sensors: their checks, what is promised of them, how uncertain a value is."""
