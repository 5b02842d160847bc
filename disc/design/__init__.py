"""A tune and a comb in, a new disc's layout out."""
