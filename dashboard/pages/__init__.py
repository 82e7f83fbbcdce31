"""The pages: what stands on each, and what it does when asked. Layouts hold no data; callbacks bring them."""
