"""The page: live capture, review, comparing and diagnosis in a browser."""
