"""What people say of a trial: forms to fill in, each checked when it is handed in."""
