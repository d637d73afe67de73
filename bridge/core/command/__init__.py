"""What is asked for, who wins, and what the boards are told."""
