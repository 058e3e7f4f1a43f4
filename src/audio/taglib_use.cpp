#include "audio/taglib_use.h"

#include <taglib/tdebuglistener.h>

#include <exception>
#include <mutex>

namespace sendworthy::audio {
namespace {

class Silent final : public TagLib::DebugListener {
  void printMessage(const TagLib::String&) override {}
};

}  // namespace

void with_taglib(const std::function<void()>& read) {
  static std::mutex mutex;
  const std::lock_guard lock(mutex);
  static Silent silent;
  static const bool quiet = (TagLib::setDebugListener(&silent), true);
  static_cast<void>(quiet);
  try {
    read();
  } catch (const std::exception&) {  // what was read so far stands
  }
}

std::string utf8(const TagLib::String& text) { return text.to8Bit(true); }

void note_properties(Walk& walk, const TagLib::PropertyMap& properties, const std::string& origin) {
  for (const auto& [name, values] : properties) {
    for (const auto& value : values) walk.tag(utf8(name), utf8(value), origin);
  }
}

}  // namespace sendworthy::audio
