#include "audio/sndfile_source.h"

#include <fmt/format.h>
#include <sndfile.h>

#include <algorithm>
#include <cstring>
#include <utility>
#include <vector>

#include "audio/digest.h"
#include "audio/speakers.h"

namespace sendworthy::audio {
namespace {

// Our header, then the sample data of the file: what the library takes for the whole file.
class Spliced {
 public:
  Spliced(std::unique_ptr<Bytes> bytes, const SampleData& data)
      : bytes_(std::move(bytes)), head_(data.decoder_head), offset_(data.offset), length_(data.bytes) {}

  std::int64_t size() const { return std::ssize(head_) + length_; }

  std::int64_t read(void* to, std::int64_t count) {
    std::int64_t done = 0;
    if (at_ < std::ssize(head_) && count > 0) {
      done = std::min(count, std::ssize(head_) - at_);
      std::memcpy(to, head_.data() + at_, static_cast<std::size_t>(done));
    }
    const auto into = at_ + done - std::ssize(head_);
    if (const auto want = std::min(count - done, length_ - into); want > 0 && into >= 0)
      done += bytes_->read_at(offset_ + into, static_cast<char*>(to) + done, want);
    at_ += done;
    return done;
  }

  std::int64_t seek(std::int64_t offset, int whence) {
    const auto base = whence == SEEK_SET ? 0 : whence == SEEK_CUR ? at_ : size();
    // Clamped to the file; written so that an absurd offset cannot overflow.
    at_ = offset < -base ? 0 : offset > size() - base ? size() : base + offset;
    return at_;
  }

  std::int64_t tell() const { return at_; }
  std::string error() const { return bytes_->error(); }

 private:
  std::unique_ptr<Bytes> bytes_;
  std::vector<std::uint8_t> head_;
  std::int64_t offset_, length_, at_ = 0;
};

Spliced& spliced(void* user) { return *static_cast<Spliced*>(user); }

SF_VIRTUAL_IO virtual_io() {
  SF_VIRTUAL_IO io{};
  io.get_filelen = [](void* user) -> sf_count_t { return spliced(user).size(); };
  io.seek = [](sf_count_t offset, int whence, void* user) -> sf_count_t { return spliced(user).seek(offset, whence); };
  io.read = [](void* to, sf_count_t count, void* user) -> sf_count_t { return spliced(user).read(to, count); };
  io.write = [](const void*, sf_count_t, void*) -> sf_count_t { return 0; };
  io.tell = [](void* user) -> sf_count_t { return spliced(user).tell(); };
  return io;
}

struct Close {
  void operator()(SNDFILE* file) const { sf_close(file); }
};

class SndfileSource final : public Source {
 public:
  SndfileSource(std::unique_ptr<Spliced> input, std::unique_ptr<SNDFILE, Close> file, Walked walked)
      : input_(std::move(input)),
        file_(std::move(file)),
        format_(std::move(walked.format)),
        damage_(std::move(walked.stream_damage)),
        codec_(walked.data.codec),
        declared_(walked.facts.declared_frames),
        expected_(walked.expected_frames),
        md5_(walked.md5),
        md5_bytes_(walked.md5_sample_bytes),
        digest_(Digest::Kind::md5) {}

  const StreamFormat& format() const override { return format_; }
  std::optional<std::int64_t> expected_frames() const override { return expected_; }
  const std::vector<Damage>& damage() const override { return damage_; }

  std::int64_t read_codes(std::int32_t* interleaved, std::int64_t frames) override {
    if (format_.kind != SampleKind::integer || frames <= 0 || ended_) return 0;
    const auto got = std::clamp<std::int64_t>(sf_readf_int(file_.get(), interleaved, frames), 0, frames);
    if (md5_ && got > 0) add_to_digest(interleaved, got * format_.channels);
    return count(got);
  }

  std::int64_t read_reals(double* interleaved, std::int64_t frames) override {
    if (format_.kind != SampleKind::real || frames <= 0 || ended_) return 0;
    return count(std::clamp<std::int64_t>(sf_readf_double(file_.get(), interleaved, frames), 0, frames));
  }

 private:
  std::int64_t count(std::int64_t got) {
    at_ += got;
    if (got == 0) finish();
    return got;
  }

  // FLAC's MD5 is over little-endian samples in whole bytes.
  void add_to_digest(const std::int32_t* codes, std::int64_t count) {
    const auto bytes = static_cast<std::size_t>(md5_bytes_);
    packed_.resize(static_cast<std::size_t>(count) * bytes);
    auto* to = packed_.data();
    for (std::int64_t i = 0; i < count; ++i) {
      const auto code = static_cast<std::uint32_t>(codes[i]) >> (32 - 8 * bytes);
      for (std::size_t b = 0; b < bytes; ++b) *to++ = static_cast<std::uint8_t>(code >> (8 * b));
    }
    digest_.add(packed_.data(), packed_.size());
  }

  void finish() {
    ended_ = true;
    if (const auto error = input_->error(); !error.empty()) damage_.push_back({"reading failed: " + error, -1, at_});
    if (sf_error(file_.get()) != SF_ERR_NO_ERROR)
      damage_.push_back({fmt::format("the decoder says: {}", sf_strerror(file_.get())), -1, at_});
    if (declared_ && !same_length())
      damage_.push_back(
          {fmt::format("the header says {} frames, {} could be decoded", grouped(*declared_), grouped(at_)), -1, at_});
    if (!md5_) return;
    std::string wanted;
    for (const auto byte : *md5_) wanted += fmt::format("{:02x}", byte);
    if (!digest_.ok())
      damage_.push_back({"the MD5 of the samples could not be checked on this machine", -1, -1});
    else if (digest_.hex() != wanted)
      damage_.push_back(
          {"the MD5 of the decoded samples is not the one in STREAMINFO: the sound is not what was encoded", -1, -1, true});
  }

  // Packet codecs round up to whole packets.
  bool same_length() const {
    const bool packets = codec_ == Codec::ms_adpcm || codec_ == Codec::ima_adpcm || codec_ == Codec::gsm;
    return packets ? at_ >= *declared_ : at_ == *declared_;
  }

  std::unique_ptr<Spliced> input_;  // outlives file_, which reads through it
  std::unique_ptr<SNDFILE, Close> file_;
  StreamFormat format_;
  std::vector<Damage> damage_;
  Codec codec_;
  std::optional<std::int64_t> declared_, expected_;
  std::optional<std::array<std::uint8_t, 16>> md5_;
  int md5_bytes_;
  Digest digest_;
  std::vector<std::uint8_t> packed_;
  std::int64_t at_ = 0;
  bool ended_ = false;
};

}  // namespace

Result<std::unique_ptr<Source>> open_with_sndfile(std::unique_ptr<Bytes> bytes, Walked walked,
                                                  const std::string& path) {
  auto input = std::make_unique<Spliced>(std::move(bytes), walked.data);
  auto io = virtual_io();
  SF_INFO info{};
  std::unique_ptr<SNDFILE, Close> file(sf_open_virtual(&io, SFM_READ, &info, input.get()));
  const auto refuse = [&](std::string_view why) {
    return fail(ErrorCode::unrecognised,
                fmt::format("cannot read \"{}\": the decoder for {} refuses it ({}); export it again", path,
                            walked.facts.encoding, why));
  };
  if (!file) {
    std::string_view why = sf_strerror(nullptr);
    while (!why.empty() && (why.back() == '.' || why.back() == '\n')) why.remove_suffix(1);
    return refuse(why);
  }
  if (info.channels != walked.format.channels || info.samplerate != walked.format.sample_rate)
    return refuse(fmt::format("it finds {} channels at {} Hz, the header says {} at {}", info.channels, info.samplerate,
                              walked.format.channels, walked.format.sample_rate));
  return std::make_unique<SndfileSource>(std::move(input), std::move(file), std::move(walked));
}

std::string sndfile_version() {
  std::string_view version = sf_version_string();  // "libsndfile-1.2.0"
  const auto dash = version.find('-');
  return std::string(dash == std::string_view::npos ? version : version.substr(dash + 1));
}

}  // namespace sendworthy::audio
