"""meterlog in a notebook: sessions, comparisons and diagnoses as pandas frames and plotly figures."""
