// TagLib, as every reader of tags here uses it.
#pragma once

#include <taglib/tpropertymap.h>
#include <taglib/tstring.h>

#include <functional>
#include <string>

#include "audio/walk.h"

namespace sendworthy::audio {

/// Runs `read` behind the one lock of TagLib, whose frame factory is shared and was not free of races before 2.3; silent, and
/// what it throws is dropped: what was read so far stands.
void with_taglib(const std::function<void()>& read);

[[nodiscard]] std::string utf8(const TagLib::String& text);

/// Puts all properties into the walk's tags under lower-case names.
void note_properties(Walk& walk, const TagLib::PropertyMap& properties, const std::string& origin);

}  // namespace sendworthy::audio
