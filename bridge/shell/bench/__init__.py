"""`hembar bench`: what a request costs on its way to an order, beside a bare client and the broker alone."""
