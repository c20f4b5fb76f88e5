"""Renames sessions and jobs, and puts them aside: what was removed can be put back."""
