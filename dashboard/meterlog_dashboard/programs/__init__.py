"""What the page answers other programs."""
