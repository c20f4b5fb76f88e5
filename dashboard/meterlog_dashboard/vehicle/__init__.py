"""The view of one vehicle: its sessions in time, what has changed over them, its events."""
