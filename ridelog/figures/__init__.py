"""Results in, plotly figures out. Shared by the report and the dashboard; nothing here reads files or knows a page."""
