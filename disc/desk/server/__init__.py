"""Requests: who may ask, what is answered; 127.0.0.1 only."""
