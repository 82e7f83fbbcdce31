"""The twelve sections of a report, each a module with its title and what stands in it. Pure."""
