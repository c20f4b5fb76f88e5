"""Chooses what to show next: where what is left open matters most."""
