"""The search for temporary feeds: what must work again, where its way is broken, what could bridge it."""
