"""Which elastomer: materials of one part side by side in one service, and what each costs."""
