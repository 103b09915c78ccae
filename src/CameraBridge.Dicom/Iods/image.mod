# Modules of the image that all kinds share, PS3.3 edition 2025e. The form of a row is told in patient.mod.
module	General Image	C.7.6.1
InstanceNumber	2
PatientOrientation	2C	may; lacks ImageOrientationPatient,ImageOrientationSlide
ContentDate	2C	unchecked: whether the images of the series are related in time is not in the object
ContentTime	2C	unchecked: whether the images of the series are related in time is not in the object
ImageType	3	-	1: ORIGINAL|DERIVED; 2: PRIMARY|SECONDARY
ImageComments	3
QualityControlImage	3	-	YES|NO
BurnedInAnnotation	3	-	YES|NO
RecognizableVisualFeatures	3	-	YES|NO
LossyImageCompression	3	-	00|01
LossyImageCompressionRatio	3
LossyImageCompressionMethod	3	-	terms ISO_10918_1|ISO_14495_1|ISO_15444_1|ISO_15444_15|ISO_13818_2|ISO_14496_10|ISO_23008_2|ISO_18181_1
IconImageSequence	3	-	items 1
>SamplesPerPixel	1	-	when GreyPhotometric: 1; when ColorPhotometric: 3
>PhotometricInterpretation	1	-	terms MONOCHROME1|MONOCHROME2|PALETTE COLOR|RGB|YBR_FULL|YBR_FULL_422|YBR_PARTIAL_422|YBR_PARTIAL_420|YBR_RCT|YBR_ICT; when JpegLossyOneSample: MONOCHROME1|MONOCHROME2; when JpegLossyThreeSamples: YBR_FULL_422|RGB; when JpegLosslessOneSample: MONOCHROME1|MONOCHROME2|PALETTE COLOR; when JpegLosslessThreeSamples: YBR_FULL|RGB; when JpegLsOneSample: MONOCHROME1|MONOCHROME2|PALETTE COLOR; when JpegLsThreeSamples: YBR_FULL|RGB; when JpegLsNearOneSample: MONOCHROME1|MONOCHROME2; when JpegLsNearThreeSamples: YBR_FULL|RGB; when Jpeg2000LosslessOneSample: MONOCHROME1|MONOCHROME2|PALETTE COLOR; when Jpeg2000LosslessThreeSamples: YBR_FULL|YBR_RCT|RGB; when Jpeg2000OneSample: MONOCHROME1|MONOCHROME2; when Jpeg2000ThreeSamples: YBR_FULL|YBR_RCT|YBR_ICT|RGB; when VideoSyntax: YBR_PARTIAL_420; when RleOneSample: MONOCHROME1|MONOCHROME2|PALETTE COLOR; when RleThreeSamples: YBR_FULL|RGB; when NativeThreeSamples: YBR_FULL|YBR_RCT|YBR_ICT|RGB
>Rows	1
>Columns	1
>BitsAllocated	1
>BitsStored	1
>HighBit	1
>PixelRepresentation	1	-	0|1
>PlanarConfiguration	1C	MoreThanOneSample	0|1
>PixelAspectRatio	1C	NonSquarePixels
>SmallestImagePixelValue	3
>LargestImagePixelValue	3
>RedPaletteColorLookupTableDescriptor	1C	PhotometricInterpretation=PALETTE COLOR	3: 8|16
>GreenPaletteColorLookupTableDescriptor	1C	PhotometricInterpretation=PALETTE COLOR	3: 8|16
>BluePaletteColorLookupTableDescriptor	1C	PhotometricInterpretation=PALETTE COLOR	3: 8|16
>RedPaletteColorLookupTableData	1C	PhotometricInterpretation=PALETTE COLOR
>GreenPaletteColorLookupTableData	1C	PhotometricInterpretation=PALETTE COLOR
>BluePaletteColorLookupTableData	1C	PhotometricInterpretation=PALETTE COLOR
>ICCProfile	3
>ColorSpace	3
>PixelData	1
PresentationLUTShape	3	-	IDENTITY|INVERSE; when Monochrome1: INVERSE; when Monochrome2: IDENTITY; when ColorPhotometric: IDENTITY
RealWorldValueMappingSequence	3	-	items 1-n
>RealWorldValueFirstValueMapped	1C	may; lacks DoubleFloatRealWorldValueFirstValueMapped
>RealWorldValueLastValueMapped	1C	may; lacks DoubleFloatRealWorldValueLastValueMapped
>DoubleFloatRealWorldValueFirstValueMapped	1C	may; lacks RealWorldValueFirstValueMapped
>DoubleFloatRealWorldValueLastValueMapped	1C	may; lacks RealWorldValueLastValueMapped
>RealWorldValueIntercept	1C	may; lacks RealWorldValueLUTData
>RealWorldValueSlope	1C	may; lacks RealWorldValueLUTData
>RealWorldValueLUTData	1C	lacks RealWorldValueIntercept
>LUTExplanation	1
>LUTLabel	1
>MeasurementUnitsCodeSequence	1	-	items 1; cid D7181
>>include	Code
>QuantityDefinitionSequence	3	-	items 1-n
>>include	Content Item with Modifiers
ImageLaterality	3	-	R|L|U|B
AnatomicRegionSequence	3	-	items 1
>include	Anatomic Region Item
include	Primary Anatomic Structure

module	General Reference	C.12.4
ReferencedImageSequence	3	-	items 1-n
>include	Image SOP Instance Reference
>PurposeOfReferenceCodeSequence	3	-	items 1
>>include	Code
ReferencedInstanceSequence	3	-	items 1-n
>include	SOP Instance Reference
>PurposeOfReferenceCodeSequence	1	-	items 1
>>include	Code
DerivationDescription	3
DerivationCodeSequence	3	-	items 1-n
>include	Code
SourceImageSequence	3	-	items 1-n
>include	Image SOP Instance Reference
>PurposeOfReferenceCodeSequence	3	-	items 1
>>include	Code
>SpatialLocationsPreserved	3	-	YES|NO|REORIENTED_ONLY
>PatientOrientation	1C	SpatialLocationsPreserved=REORIENTED_ONLY
SourceInstanceSequence	3	-	items 1-n
>include	SOP Instance Reference
>PurposeOfReferenceCodeSequence	3	-	items 1
>>include	Code

module	Image Pixel	C.7.6.3
SamplesPerPixel	1	-	when GreyPhotometric: 1; when ColorPhotometric: 3
PhotometricInterpretation	1	-	terms MONOCHROME1|MONOCHROME2|PALETTE COLOR|RGB|YBR_FULL|YBR_FULL_422|YBR_PARTIAL_422|YBR_PARTIAL_420|YBR_RCT|YBR_ICT; when JpegLossyOneSample: MONOCHROME1|MONOCHROME2; when JpegLossyThreeSamples: YBR_FULL_422|RGB; when JpegLosslessOneSample: MONOCHROME1|MONOCHROME2|PALETTE COLOR; when JpegLosslessThreeSamples: YBR_FULL|RGB; when JpegLsOneSample: MONOCHROME1|MONOCHROME2|PALETTE COLOR; when JpegLsThreeSamples: YBR_FULL|RGB; when JpegLsNearOneSample: MONOCHROME1|MONOCHROME2; when JpegLsNearThreeSamples: YBR_FULL|RGB; when Jpeg2000LosslessOneSample: MONOCHROME1|MONOCHROME2|PALETTE COLOR; when Jpeg2000LosslessThreeSamples: YBR_FULL|YBR_RCT|RGB; when Jpeg2000OneSample: MONOCHROME1|MONOCHROME2; when Jpeg2000ThreeSamples: YBR_FULL|YBR_RCT|YBR_ICT|RGB; when VideoSyntax: YBR_PARTIAL_420; when RleOneSample: MONOCHROME1|MONOCHROME2|PALETTE COLOR; when RleThreeSamples: YBR_FULL|RGB; when NativeThreeSamples: YBR_FULL|YBR_RCT|YBR_ICT|RGB
Rows	1
Columns	1
BitsAllocated	1
BitsStored	1
HighBit	1
PixelRepresentation	1	-	0|1
PlanarConfiguration	1C	MoreThanOneSample	0|1
PixelAspectRatio	1C	NonSquarePixels
SmallestImagePixelValue	3
LargestImagePixelValue	3
RedPaletteColorLookupTableDescriptor	1C	PhotometricInterpretation=PALETTE COLOR	3: 8|16
GreenPaletteColorLookupTableDescriptor	1C	PhotometricInterpretation=PALETTE COLOR	3: 8|16
BluePaletteColorLookupTableDescriptor	1C	PhotometricInterpretation=PALETTE COLOR	3: 8|16
RedPaletteColorLookupTableData	1C	PhotometricInterpretation=PALETTE COLOR
GreenPaletteColorLookupTableData	1C	PhotometricInterpretation=PALETTE COLOR
BluePaletteColorLookupTableData	1C	PhotometricInterpretation=PALETTE COLOR
ICCProfile	3
ColorSpace	3
PixelData	1C	lacks PixelDataProviderURL
PixelDataProviderURL	1C	PixelsBehindUrl
PixelPaddingRangeLimit	1C	unchecked: whether padding is a range is not in the object
ExtendedOffsetTable	3
ExtendedOffsetTableLengths	1C	has ExtendedOffsetTable

module	Acquisition Context	C.7.6.14
AcquisitionContextSequence	2	-	items 0-n
>include	Content Item with Modifiers
AcquisitionContextDescription	3

module	Device	C.7.6.12
DeviceSequence	1	-	items 1-n
>include	Code
>Manufacturer	3
>ManufacturerModelName	3
>DeviceSerialNumber	3
>DateOfManufacture	3
>DeviceID	3
>DeviceLength	3
>DeviceDiameter	3
>DeviceDiameterUnits	2C	has DeviceDiameter	FR|GA|IN|MM
>DeviceVolume	3
>InterMarkerDistance	3
>DeviceDescription	3

module	Overlay Plane	C.9.2	60xx
OverlayRows	1
OverlayColumns	1
OverlayType	1	-	G|R
OverlayOrigin	1
OverlayBitsAllocated	1	-	1
OverlayBitPosition	1	-	0
OverlayData	1
OverlayDescription	3
OverlaySubtype	3	-	terms USER|AUTOMATED
OverlayLabel	3
ROIArea	3
ROIMean	3
ROIStandardDeviation	3

module	ICC Profile	C.11.15
ICCProfile	1
ColorSpace	3
