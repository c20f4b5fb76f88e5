"""Who may reach the page: the pairing gate, and the server for other devices of the network."""
