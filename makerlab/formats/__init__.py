"""Where a language writes dates and figures otherwise than Django has it."""
