// Keeps PulseAudio's client library, which ALSA may bring in, from hanging for good.
#pragma once

namespace rankwright::capture {

/// Turns off shared memory between this program and PulseAudio's server, by a client configuration
/// of our own that includes the user's. With shared memory, a server that dies while a piece of
/// sound is being read leaves the client library waiting for ever with its lock held (seen with
/// 16.1: pa_memimport_free waits for the reader, the reader for the lock). A PULSE_CLIENTCONFIG
/// that is set already is left alone. Call before the first use of the sound system.
void avoid_shared_memory_with_pulse();

}  // namespace rankwright::capture
