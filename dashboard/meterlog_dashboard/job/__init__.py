"""Jobs on the page: the start page that lists them, and each as one column, with the same file as the terminal's."""
