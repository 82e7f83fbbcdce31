"""What is played: scenarios as values, their files and what may stand in them, and variants of them."""
