"""The circuit as its file describes it, and the network that it forms."""
