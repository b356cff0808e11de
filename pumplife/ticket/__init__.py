"""The technician's page: what is due on one pump side, and the record to fill."""
