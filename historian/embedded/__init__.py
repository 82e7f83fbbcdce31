"""The store in a folder on this host: what has just come, and the upkeep that moves it on."""
