"""The gate of the page: pairing by code, and the server for other devices of the network."""
