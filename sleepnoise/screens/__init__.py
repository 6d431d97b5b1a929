"""Results on a terminal of 80 columns, progress and complaints."""
