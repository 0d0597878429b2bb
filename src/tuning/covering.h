// What one tone that sounds on hides of others.
#pragma once

#include "tuning/tones_heard.h"

namespace rankwright::tuning {

/// Whether a partial of `lasting` lies within 60 cents of `pitch`, no more than 40 dB under its
/// loudest. Of a tone whose partials weren't heard each is believed to be there.
bool covers(const HeardTone& lasting, Hertz pitch);

/// Whether most of what `tone` was heard by stands at partials of `lasting`, so near that the ear
/// may have followed those before `tone` spoke: how it spoke isn't known then.
bool hides_speech(const HeardTone& lasting, const HeardTone& tone);

}  // namespace rankwright::tuning
