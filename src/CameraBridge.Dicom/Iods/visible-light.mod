# Modules of visible light images, PS3.3 edition 2025e. The form of a row is told in patient.mod.
module	VL Image	C.8.12.1
ImageType	1	-	1: ORIGINAL|DERIVED; 2: PRIMARY|SECONDARY; 3: STEREO L|STEREO R|
PhotometricInterpretation	1	-	MONOCHROME2|YBR_PARTIAL_420|YBR_FULL_422|RGB|YBR_RCT|YBR_ICT; when NativeThreeSamples: RGB; when JpegLsThreeSamples: RGB; when Jpeg2000ThreeSamples: YBR_RCT|YBR_ICT; when Jpeg2000LosslessThreeSamples: YBR_RCT; when VideoSyntax: YBR_PARTIAL_420; when JpegLossyThreeSamples: terms YBR_FULL_422
BitsAllocated	1	-	8
BitsStored	1	-	8
HighBit	1	-	7
PixelRepresentation	1	-	0
SamplesPerPixel	1	-	1|3; when GreyPhotometric: 1; when ColorPhotometric: 3
PlanarConfiguration	1C	MoreThanOneSample	0
ContentTime	1C	unchecked: whether the images of the series are related in time is not in the object
LossyImageCompression	2	-	00|01
ReferencedImageSequence	1C	may; StereoPartner	items 1-n
>include	Image SOP Instance Reference
>PurposeOfReferenceCodeSequence	2	-	items 0-1; cid D7201
>>include	Code
WindowCenter	3
WindowWidth	1C	has WindowCenter
ImageLaterality	3	-	R|L|U|B
ViewCodeSequence	3	-	items 1; cid D4062,4063
>include	Code
>ViewModifierCodeSequence	3	-	items 1-n; cid D4064,4065
>>include	Code
AnatomicRegionSequence	1C	may; FramesWithoutSpecimen	items 1; cid B4,4028,4029,4031,4040
>include	Anatomic Region Item
include	Primary Anatomic Structure
ChannelDescriptionCodeSequence	3	-	cid B4206
>include	Code
PixelSpacing	3
ImagerPixelSpacing	3

module	VL Photographic Equipment	C.8.12.10
CameraOwnerName	3
LensSpecification	3
LensMake	3
LensModel	3
LensSerialNumber	3

module	VL Photographic Acquisition	C.8.12.11
WhitePoint	3
PrimaryChromaticities	3
BatteryLevel	3
ExposureTimeInSeconds	3
FNumber	3
OECFRows	3
OECFColumns	3
OECFColumnNames	3
OECFValues	3
SpatialFrequencyResponseRows	3
SpatialFrequencyResponseColumns	3
SpatialFrequencyResponseColumnNames	3
SpatialFrequencyResponseValues	3
ColorFilterArrayPatternRows	3
ColorFilterArrayPatternColumns	3
ColorFilterArrayPatternValues	3
ExposureProgram	3	-	0|1|2|3|4|5|6|7|8
SpectralSensitivity	3
PhotographicSensitivity	3
SensitivityType	3	-	0|1|2|3|4|5|6|7
StandardOutputSensitivity	3
RecommendedExposureIndex	3
ISOSpeed	3
ISOSpeedLatitudeyyy	3
ISOSpeedLatitudezzz	3
EXIFVersion	3
ShutterSpeedValue	3
ApertureValue	3
BrightnessValue	3
ExposureBiasValue	3
MaxApertureValue	3
SubjectDistance	3
MeteringMode	3	-	0|1|2|3|4|5|6|255
LightSource	3	-	0|1|2|3|4|9|10|11|12|13|14|15|16|17|18|19|20|21|22|23|24|255
FlashFiringStatus	3	-	0|1
FlashReturnStatus	3	-	0|1|2|3
FlashMode	3	-	0|1|2|3
FlashFunctionPresent	3	-	0|1
FlashRedEyeMode	3	-	0|1
FocalLength	3
SubjectArea	3
MakerNote	3
Temperature	3
Humidity	3
Pressure	3
WaterDepth	3
Acceleration	3
CameraElevationAngle	3
FlashEnergy	3
SubjectLocation	3
PhotographicExposureIndex	3
SensingMethod	3	-	1|2|3|4|5|7|8
FileSource	3	-	0|1|2|3
SceneType	3	-	1
CustomRendered	3	-	0|1
ExposureMode	3	-	0|1|2
WhiteBalance	3	-	0|1
DigitalZoomRatio	3
FocalLengthIn35mmFilm	3
SceneCaptureType	3	-	0|1|2|3
GainControl	3	-	0|1|2|3|4
Contrast	3	-	0|1|2
Saturation	3	-	0|1|2
Sharpness	3	-	0|1|2
DeviceSettingDescription	3
SubjectDistanceRange	3	-	0|1|2|3
SelfTimerMode	3
InteroperabilityIndex	3	-	terms R98|THM|R03
InteroperabilityVersion	3

module	VL Photographic Geolocation	C.8.12.12
GPSVersionID	3
GPSLatitudeRef	3	-	N|S
GPSLatitude	3
GPSLongitudeRef	3	-	E|W
GPSLongitude	3
GPSAltitudeRef	3
GPSAltitude	3
GPSTimeStamp	3
GPSSatellites	3
GPSStatus	3	-	A|V
GPSMeasureMode	3	-	2|3
GPSDOP	3
GPSSpeedRef	3	-	K|M|N
GPSSpeed	3
GPSTrackRef	3	-	T|M
GPSTrack	3
GPSImgDirectionRef	3	-	T|M
GPSImgDirection	3
GPSMapDatum	3
GPSDestLatitudeRef	3	-	N|S
GPSDestLatitude	3
GPSDestLongitudeRef	3	-	E|W
GPSDestLongitude	3
GPSDestBearingRef	3	-	T|M
GPSDestBearing	3
GPSDestDistanceRef	3	-	K|M|N
GPSDestDistance	3
GPSProcessingMethod	3
GPSAreaInformation	3
GPSDateStamp	3
GPSDifferential	3

module	Dermoscopic Image	C.8.12.13
RecognizableVisualFeatures	1	-	YES|NO
LightSourcePolarization	2	-	POLARIZED|NON_POLARIZED
EmitterColorTemperature	2
ContactMethod	2	-	CONTACT|NON_CONTACT
ImmersionMedia	2C	ContactMethod=CONTACT	ULTRASOUND_GEL|ALCOHOL|WATER|MINERAL_OIL|PLASTIC_CAP
OpticalMagnificationFactor	2
PartialView	3	-	YES|NO
PartialViewDescription	3
TrackingID	1C	has TrackingUID
TrackingUID	1C	has TrackingID
