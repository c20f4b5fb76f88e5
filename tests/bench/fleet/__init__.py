"""A fleet of vans over a year, made up by seed, whose truth is known; it shares nothing with the analyzer."""
