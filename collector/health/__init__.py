"""How the recorder and its sources do: counted, put into the store, told."""
