/* What your vendor's library must do for board_port.c. Placeholders: nothing here exists. */
#ifndef HAL_PLACEHOLDERS_H
#define HAL_PLACEHOLDERS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Clocks, SPI, USB, a timer that counts microseconds over all 32 bits (not 16: it would wrap
 * before the loop comes round), data-ready pins as interrupts that call board_on_data_ready. */
void hal_begin(void);
void hal_halt(void);
uint32_t hal_micros(void);
void hal_memory_barrier(void);
void board_on_data_ready(uint8_t stream);

/* Read one sample of 0, the bridges, or 1, the IMU; sign-extended counts. Returns whether the
 * amplifier reports an open bridge. The other one lets a sample go unread. */
bool hal_read_sample(uint8_t stream, int32_t *counts);
void hal_skip_sample(uint8_t stream);
bool hal_start_sampling(uint8_t stream, float rate_hz); /* false if the chip does not answer */
void hal_stop_sampling(uint8_t stream);

bool hal_balance_bridge(void); /* ends within 100 ms; false if there is nothing to balance */
bool hal_bridge_answers(void);
bool hal_imu_answers(void); /* its identification register reads as it should */
bool hal_store_is_whole(void);

/* Never wait: how many bytes the transmit buffer took, and how many had come. */
size_t hal_usb_write(const uint8_t *bytes, size_t size);
size_t hal_usb_read(uint8_t *bytes, size_t room);

/* In flash: write the new record behind the old one and mark it valid last, so that a power-off
 * leaves one of the two, and read it back: false if it is not there. An empty value removes the
 * key; that needs room for a record, too. */
size_t hal_store_read(const char *key, size_t key_size, uint8_t *value, size_t room);
uint8_t hal_store_key(size_t place, char *key, size_t room); /* its size, 0: no such place */
bool hal_store_has_room(size_t key_size, size_t size);
bool hal_store_write(const char *key, size_t key_size, const uint8_t *value, size_t size);
uint32_t hal_count_boot(void); /* a number in flash, counted up and kept */

#endif
