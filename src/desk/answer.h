// What a request is answered with, before it becomes bytes on a wire.
#pragma once

#include <sendworthy/result.h>

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <string_view>

#include "base/os.h"

namespace sendworthy::desk {

struct Answer {
  int status = 200;
  std::string type;  ///< MIME type; empty: no body
  std::string body;
  std::shared_ptr<base::InputFile> file;        ///< in place of the body
  std::map<std::string, std::string> headers;  ///< take the place of the usual ones
  std::int64_t streamed_bytes = 0;              ///< in place of the body, where `stream` is there
  /// Fills up to so many bytes from a place on, as they go out; none: the answer ends early, and whoever asked sees it.
  std::function<std::int64_t(std::int64_t from, char* to, std::int64_t bytes)> stream = {};
};

/// {"error": {"code": …, "text": …}}. `code`: of letters and underscores, made to last; `text`: what, why, what to do; any bytes.
[[nodiscard]] Answer refusal(int status, std::string_view code, std::string_view text);

}  // namespace sendworthy::desk
