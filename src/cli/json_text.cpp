#include "cli/json_text.h"

#include <cmath>

#include "base/text.h"

namespace sendworthy::cli {
namespace {

std::string quoted(std::string_view value) {
  static constexpr std::string_view kHex = "0123456789abcdef";
  std::string out = "\"";
  for (const char c : base::clean_utf8(value)) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '"' || c == '\\') {
      out += '\\';
      out += c;
    } else if (byte < 0x20 || byte == 0x7F) {
      out += "\\u00";
      out += kHex[byte >> 4];
      out += kHex[byte & 15];
    } else {
      out += c;
    }
  }
  return out + "\"";
}

}  // namespace

void JsonText::before_value() {
  if (after_key_) {
    after_key_ = false;
    return;
  }
  if (!empty_) out_ += ',';
  if (depth_ > 0) {
    out_ += '\n';
    out_.append(static_cast<std::size_t>(2 * depth_), ' ');
  }
  empty_ = false;
}

void JsonText::close(char bracket) {
  --depth_;
  if (!empty_) {
    out_ += '\n';
    out_.append(static_cast<std::size_t>(2 * depth_), ' ');
  }
  out_ += bracket;
  empty_ = false;
}

void JsonText::open_object() {
  before_value();
  out_ += '{';
  ++depth_;
  empty_ = true;
}

void JsonText::open_array() {
  before_value();
  out_ += '[';
  ++depth_;
  empty_ = true;
}

void JsonText::close_object() { close('}'); }
void JsonText::close_array() { close(']'); }

void JsonText::key(std::string_view name) {
  before_value();
  out_ += quoted(name) + ": ";
  after_key_ = true;
}

void JsonText::text(std::string_view value) {
  before_value();
  out_ += quoted(value);
}

void JsonText::number(double value) {
  before_value();
  out_ += std::isfinite(value) ? base::shortest(value) : "null";
}

void JsonText::number(double value, int decimals) {
  before_value();
  out_ += std::isfinite(value) ? base::fixed(value, decimals) : "null";
}

void JsonText::boolean(bool value) {
  before_value();
  out_ += value ? "true" : "false";
}

void JsonText::member(std::string_view name, const std::vector<std::string>& values) {
  key(name);
  open_array();
  for (const auto& value : values) text(value);
  close_array();
}

}  // namespace sendworthy::cli
