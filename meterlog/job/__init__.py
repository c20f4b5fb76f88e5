"""The job: one repair from complaint to proof, in a folder that can be copied, zipped and mailed."""
