"""The view that lists and searches the folder's sessions."""
