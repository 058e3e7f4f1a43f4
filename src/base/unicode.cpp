#include "base/unicode.h"

#include <utf8proc.h>

#include <cstdlib>

namespace sendworthy::base {
namespace {

std::string mapped(std::string_view text, int options) {
  utf8proc_uint8_t* made = nullptr;
  const auto length = utf8proc_map(reinterpret_cast<const utf8proc_uint8_t*>(text.data()), static_cast<utf8proc_ssize_t>(text.size()), &made,
                                   static_cast<utf8proc_option_t>(options));
  if (length < 0) return std::string(text);
  std::string result(reinterpret_cast<const char*>(made), static_cast<std::size_t>(length));
  std::free(made);
  return result;
}

}  // namespace

std::string composed(std::string_view text) { return mapped(text, UTF8PROC_STABLE | UTF8PROC_COMPOSE); }

std::string case_folded(std::string_view text) { return mapped(text, UTF8PROC_STABLE | UTF8PROC_COMPOSE | UTF8PROC_CASEFOLD); }

}  // namespace sendworthy::base
