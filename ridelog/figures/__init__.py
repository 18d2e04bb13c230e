"""Results as plotly figures, shared by the report and the dashboard."""
