"""A bench of the diagnosis that owes the product nothing: vehicles, faults, network, meter and person are its own."""
