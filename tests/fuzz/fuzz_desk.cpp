// Requests to the local page from anybody: the first line is the target, the next three are method, Host and Origin, the rest is
// the body. Whatever comes, what is let through is what our own page could have sent, and no path leads out of the opened folder.
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <string_view>

#include "base/scratch_folder.h"
#include "base/text.h"
#include "desk/folder.h"
#include "desk/guard.h"
#include "desk/json.h"

namespace {

using namespace sendworthy;
namespace fs = std::filesystem;

constexpr std::string_view kToken = "0123456789abcdefghijABCDEFGHIJKL";

void require(bool holds) {
  if (!holds) std::abort();
}

/// An opened folder with links that lead out of it and such that do not.
struct Opened {
  Opened() : scratch(*base::ScratchFolder::make("fuzz")), room(scratch.path() + "/room") {
    fs::create_directories(room + "/in");
    fs::create_directories(scratch.path() + "/room-beside");
    fs::create_symlink("..", room + "/up");
    fs::create_symlink("/", room + "/top");
    fs::create_symlink("../room-beside", room + "/beside");
    fs::create_symlink("in", room + "/link");
    fs::create_symlink("self", room + "/self");
  }
  base::ScratchFolder scratch;
  std::string room;
};

void require_inside(const desk::Folder& folder, std::string_view relative) {
  const auto path = folder.path_of(relative);
  if (!path) {
    require(!path.error().text.empty());
    return;
  }
  std::error_code error;
  const auto real = fs::weakly_canonical(*path, error).string();
  require(error || real == folder.real_path() || real.starts_with(folder.real_path() + "/"));
}

std::string_view line_of(std::string_view& text) {
  const auto end = text.find('\n');
  const auto line = text.substr(0, end);
  text.remove_prefix(end == text.npos ? text.size() : end + 1);
  return line;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const Opened kOpened;
  static const desk::Folder kFolder = *desk::Folder::open(kOpened.room);
  static const desk::Guard kGuard(std::string(kToken), 4000);

  std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto target_text = line_of(text), method = line_of(text), host = line_of(text), origin = line_of(text);
  if (const auto target = desk::parse_target(target_text)) {
    require(!target->segments.empty());
    for (const auto& segment : target->segments) require(segment.find_first_of(std::string_view("/\\\0", 3)) == segment.npos);
    for (const auto& [name, value] : target->query) {
      require(name.find('\0') == name.npos && value.find('\0') == value.npos);
      require_inside(kFolder, value);
      require_inside(kFolder, base::percent_decoded(value));
    }
  }
  desk::Origins origins{{std::string(host)}, {}, {}};
  if (!origin.empty()) origins.origin.emplace_back(origin);
  desk::Target target;
  const auto refused = kGuard.refuse(method, target_text, origins, target);
  const bool knows = target_text.starts_with("/" + std::string(kToken) + "/");
  if (!knows) {
    require(refused && refused->status == 404 && refused->body.empty());
  } else if (refused) {
    require(refused->status == 400 || refused->status == 403 || refused->status == 405);
    require(!desk::Json::parse(refused->body, nullptr, false).is_discarded());
  } else {
    require(!target.segments.empty() && (method == "GET" || method == "POST" || method == "DELETE"));
    require(origin.empty() || origin.starts_with("http://"));
  }
  const auto wish = desk::read_check_wish(text);
  if (!wish) {
    require(!desk::Json::parse(desk::refusal(400, "request", wish.error().text).body, nullptr, false).is_discarded());
    return 0;
  }
  require(!wish->files.empty() && wish->files.size() <= desk::kMostFilesOfACheck && wish->rules.size() <= desk::kMostRulesOfACheck);
  for (const auto& file : wish->files) {
    require(file.path.empty() || file.upload.empty());
    if (file.upload.empty()) require_inside(kFolder, file.path);
  }
  return 0;
}
