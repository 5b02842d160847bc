"""Any recording as samples; where something begins in it and which tones stand there."""
