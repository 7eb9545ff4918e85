"""A compiled session → what it comes to, and what an experienced colleague would ask about it."""
