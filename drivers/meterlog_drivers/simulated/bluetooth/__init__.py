"""A simulated Bluetooth service: `org.bluez` on a private message bus, and peripherals on it."""
