"""Kinds of port that pyserial opens by a URL, as `protocol_handler_packages` wants them: one a module."""
