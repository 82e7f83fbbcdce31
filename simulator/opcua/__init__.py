"""The simulated line behind a real OPC UA server."""
