#include "sheet/json_text.h"

#include <algorithm>
#include <charconv>

#include "base/text.h"
#include "sheet/phrases.h"

namespace sendworthy::sheet {
namespace {

void append_escape(std::string& out, unsigned code) {
  constexpr std::string_view kHex = "0123456789abcdef";
  out += "\\u";
  for (int shift = 12; shift >= 0; shift -= 4) out += kHex[(code >> static_cast<unsigned>(shift)) & 15u];
}

/// The code point of a well-formed two- or three-byte sequence that is written as an escape, or 0.
unsigned escaped_code(std::string_view rest) {
  const auto byte = [rest](std::size_t i) { return static_cast<unsigned>(static_cast<unsigned char>(rest[i])); };
  if (byte(0) == 0xC2 && rest.size() >= 2 && byte(1) < 0xA0) return byte(1);  // C1 controls
  if (byte(0) == 0xD8 && rest.size() >= 2 && byte(1) == 0x9C) return 0x061C;  // Arabic letter mark
  if (byte(0) == 0xE2 && rest.size() >= 3 && (byte(1) == 0x80 || byte(1) == 0x81)) {
    const unsigned code = 0x2000u | ((byte(1) & 0x3Fu) << 6u) | (byte(2) & 0x3Fu);
    const bool turns =
        code == 0x200E || code == 0x200F || (code >= 0x2028 && code <= 0x202E) || (code >= 0x2066 && code <= 0x2069);
    return turns ? code : 0;
  }
  return 0;
}

bool plain(char c) {
  const auto byte = static_cast<unsigned char>(c);
  return byte >= 0x20 && byte < 0x7F && byte != '"' && byte != '\\';
}

}  // namespace

void JsonText::new_line() {
  out_ += '\n';
  out_.append(2 * levels_.size(), ' ');
}

void JsonText::before_value() {
  if (after_key_) {
    after_key_ = false;
    return;
  }
  if (levels_.empty()) return;
  auto& level = levels_.back();
  if (!level.empty) out_ += ',';
  if (indented_ && !level.one_line) {
    new_line();
  } else if (indented_ && !level.empty) {
    out_ += ' ';
  }
  level.empty = false;
}

void JsonText::open(char bracket, bool one_line) {
  before_value();
  out_ += bracket;
  levels_.push_back({true, one_line});
}

void JsonText::close(char bracket) {
  const auto level = levels_.back();
  levels_.pop_back();
  if (indented_ && !level.empty && !level.one_line) new_line();
  out_ += bracket;
}

void JsonText::key(std::string_view name) {
  before_value();
  quote(name);
  out_ += indented_ ? ": " : ":";
  after_key_ = true;
}

void JsonText::text(std::string_view bytes) {
  before_value();
  quote(bytes);
}

void JsonText::boolean(bool value) {
  before_value();
  out_ += value ? "true" : "false";
}

void JsonText::integer(std::int64_t value) {
  before_value();
  char buffer[24];
  const auto [end, error] = std::to_chars(buffer, buffer + sizeof buffer, value);
  out_.append(buffer, end);
}

void JsonText::null() {
  before_value();
  out_ += "null";
}

void JsonText::number(double value, int decimals) {
  before_value();
  const auto text = digits(value, decimals);
  out_ += text.empty() ? "null" : text;
}

void JsonText::seconds(double value) {
  before_value();
  auto text = digits(value, 6);
  if (text.find('.') != std::string::npos && text.find('e') == std::string::npos) {
    while (text.back() == '0' && text[text.size() - 2] != '.') text.pop_back();
  }
  out_ += text.empty() ? "null" : text;
}

void JsonText::quote(std::string_view bytes) {
  out_ += '"';
  if (std::all_of(bytes.begin(), bytes.end(), plain)) {
    out_.append(bytes).push_back('"');
    return;
  }
  const std::string clean = base::clean_utf8(bytes);
  const std::string_view rest = clean;
  for (std::size_t i = 0; i < rest.size(); ++i) {
    const char c = rest[i];
    if (plain(c)) {
      out_ += c;
      continue;
    }
    switch (c) {
      case '"':
        out_ += "\\\"";
        continue;
      case '\\':
        out_ += "\\\\";
        continue;
      case '\n':
        out_ += "\\n";
        continue;
      case '\r':
        out_ += "\\r";
        continue;
      case '\t':
        out_ += "\\t";
        continue;
      default:
        break;
    }
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x20 || byte == 0x7F) {
      append_escape(out_, byte);
    } else if (const auto code = byte >= 0x80 ? escaped_code(rest.substr(i)) : 0u; code != 0) {
      append_escape(out_, code);
      i += code < 0x800 ? 1 : 2;
    } else {
      out_ += c;
    }
  }
  out_ += '"';
}

}  // namespace sendworthy::sheet
