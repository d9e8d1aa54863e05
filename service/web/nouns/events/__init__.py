"""Events as they are posted and read: routes and the shapes of their answers."""
