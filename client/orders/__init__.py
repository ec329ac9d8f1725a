"""Order files: a table or a JSON document in, a plan request out, every wrong line named."""
