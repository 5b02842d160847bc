"""What begins: single beginnings, how loud each pitch usually is, attacks, and each tooth's own step at a strike."""
