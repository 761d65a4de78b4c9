/* Lines of text on standard input. */
#ifndef ORDERS_H
#define ORDERS_H

#define ORDER_BYTES 128

/* A line that has come as a whole, without its end; NULL while there is none. What is too long is cut off. */
const char *orders_next(void);

#endif
