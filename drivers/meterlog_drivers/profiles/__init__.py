"""Meters described in TOML: the shipped profiles, and what reads, decodes, encodes and explains one."""
