"""What people and the laboratory find and write down while a scenario is played."""
