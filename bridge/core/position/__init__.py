"""What is known of a position, and how well."""
