"""Many sessions as one dataset of tables: what each shows, a row a measure, an event, a finding."""
