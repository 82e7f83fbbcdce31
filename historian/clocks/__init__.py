"""What is known of clocks that were wrong: what people fixed, what sources stamped, whom to believe."""
