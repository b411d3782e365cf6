"""Views: read the request, ask one service or query, render."""
