"""The page around the views: navigation, errors, the parts that every view uses, and the files the browser loads."""
